# The specimen, PS3.3 edition 2025e. The form of a row is told in patient.mod.
module	Specimen	C.7.6.22
ContainerIdentifier	1
IssuerOfTheContainerIdentifierSequence	2	-	items 0-1
>include	Hierarchic Designator
AlternateContainerIdentifierSequence	3	-	items 1-n
>ContainerIdentifier	1
>IssuerOfTheContainerIdentifierSequence	2	-	items 0-1
>>include	Hierarchic Designator
ContainerTypeCodeSequence	2	-	items 0-1; cid B8101
>include	Code
ContainerDescription	3
ContainerComponentSequence	3	-	items 1-n
>ContainerComponentTypeCodeSequence	1	-	items 1; cid B8102
>>include	Code
>Manufacturer	3
>ManufacturerModelName	3
>ContainerComponentID	3
>ContainerComponentLength	3
>ContainerComponentWidth	3
>ContainerComponentDiameter	3
>ContainerComponentThickness	3
>ContainerComponentMaterial	3	-	terms GLASS|PLASTIC|METAL
>ContainerComponentDescription	3
SpecimenDescriptionSequence	1	-	items 1-n
>SpecimenIdentifier	1
>IssuerOfTheSpecimenIdentifierSequence	2	-	items 0-1
>>include	Hierarchic Designator
>SpecimenUID	1
>SpecimenTypeCodeSequence	3	-	items 1; cid B8103
>>include	Code
>SpecimenShortDescription	3
>SpecimenDetailedDescription	3
>SpecimenPreparationSequence	2	-	items 0-n
>>SpecimenPreparationStepContentItemSequence	1	-	items 1-n
>>>include	Content Item
>include	Primary Anatomic Structure
>SpecimenLocalizationContentItemSequence	1C	unchecked: whether several specimens are in the picture is not in the object	items 1-n
>>include	Content Item
