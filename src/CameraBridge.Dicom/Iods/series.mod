# Modules of the series and the equipment, PS3.3 edition 2025e. The form of a row is told in patient.mod.
module	General Series	C.7.3.1
Modality	1
SeriesInstanceUID	1
SeriesNumber	2
Laterality	2C	SidedBodyPartWithoutImageLaterality	R|L
SeriesDate	3
SeriesTime	3
PerformingPhysicianName	3
PerformingPhysicianIdentificationSequence	3	-	items 1-n
>include	Person Identification
ProtocolName	3
SeriesDescription	3
SeriesDescriptionCodeSequence	3	-	items 1
>include	Code
OperatorsName	3
OperatorIdentificationSequence	3	-	items 1-n
>include	Person Identification
ReferencedPerformedProcedureStepSequence	3	-	items 1
>include	SOP Instance Reference
RelatedSeriesSequence	3	-	items 1-n
>StudyInstanceUID	1
>SeriesInstanceUID	1
>PurposeOfReferenceCodeSequence	2	-	items 0-n
>>include	Code
BodyPartExamined	3
PatientPosition	2C	unchecked: the classes that need it are not photographs
RequestAttributesSequence	3	-	items 1-n
>include	Request Attributes
PerformedProcedureStepID	3
PerformedProcedureStepStartDate	3
PerformedProcedureStepStartTime	3
PerformedProcedureStepDescription	3
PerformedProtocolCodeSequence	3	-	items 1-n
>include	Code
>ProtocolContextSequence	3	-	items 1-n
>>include	Content Item
>>ContentItemModifierSequence	3	-	items 1-n
>>>include	Content Item
CommentsOnThePerformedProcedureStep	3
AnatomicalOrientationType	1C	unchecked: how a patient that is not human stands is not in the object	BIPED|QUADRUPED

module	General Equipment	C.7.5.1
Manufacturer	2
InstitutionName	3
InstitutionAddress	3
StationName	3
InstitutionalDepartmentName	3
InstitutionalDepartmentTypeCodeSequence	3	-	items 1
>include	Code
ManufacturerModelName	3
DeviceSerialNumber	3
SoftwareVersions	3
UDISequence	3	-	items 1-n
>UniqueDeviceIdentifier	1
PixelPaddingValue	1C	may; has PixelPaddingRangeLimit

module	General Acquisition	C.7.10.1
AcquisitionUID	3
AcquisitionNumber	3
AcquisitionDate	3
AcquisitionTime	3
AcquisitionDateTime	3
AcquisitionDuration	3
ImagesInAcquisition	3
IrradiationEventUID	3
