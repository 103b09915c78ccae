# Modules of the image that all kinds share, PS3.3 edition 2025e. The form of a row is told in patient.mod.
module	General Image	C.7.6.1
InstanceNumber	2
PatientOrientation	2C	may; lacks ImageOrientationPatient,ImageOrientationSlide
ContentDate	2C	unchecked: whether the images of the series are related in time is not in the object
ContentTime	2C	unchecked: whether the images of the series are related in time is not in the object
ImageType	3	-	1: ORIGINAL|DERIVED; 2: PRIMARY|SECONDARY
ImageComments	3
QualityControlImage	3	-	YES|NO
BurnedInAnnotation	3	-	YES|NO
RecognizableVisualFeatures	3	-	YES|NO
LossyImageCompression	3	-	00|01
LossyImageCompressionRatio	3
LossyImageCompressionMethod	3
IconImageSequence	3	-	items 1
>SamplesPerPixel	1
>PhotometricInterpretation	1
>Rows	1
>Columns	1
>BitsAllocated	1
>BitsStored	1
>HighBit	1
>PixelRepresentation	1	-	0|1
>PlanarConfiguration	1C	MoreThanOneSample	0|1
>PixelAspectRatio	1C	unchecked: the shape of a camera's pixel is not in the object
>RedPaletteColorLookupTableDescriptor	1C	PhotometricInterpretation=PALETTE COLOR
>GreenPaletteColorLookupTableDescriptor	1C	PhotometricInterpretation=PALETTE COLOR
>BluePaletteColorLookupTableDescriptor	1C	PhotometricInterpretation=PALETTE COLOR
>RedPaletteColorLookupTableData	1C	PhotometricInterpretation=PALETTE COLOR
>GreenPaletteColorLookupTableData	1C	PhotometricInterpretation=PALETTE COLOR
>BluePaletteColorLookupTableData	1C	PhotometricInterpretation=PALETTE COLOR
>PixelData	1
PresentationLUTShape	3	-	IDENTITY|INVERSE; when Monochrome2: IDENTITY; when MoreThanOneSample: IDENTITY
RealWorldValueMappingSequence	3	-	items 1-n
>RealWorldValueFirstValueMapped	1C	may; lacks DoubleFloatRealWorldValueFirstValueMapped
>RealWorldValueLastValueMapped	1C	may; lacks DoubleFloatRealWorldValueLastValueMapped
>DoubleFloatRealWorldValueFirstValueMapped	1C	may; lacks RealWorldValueFirstValueMapped
>DoubleFloatRealWorldValueLastValueMapped	1C	may; lacks RealWorldValueLastValueMapped
>RealWorldValueIntercept	1C	may; lacks RealWorldValueLUTData
>RealWorldValueSlope	1C	may; lacks RealWorldValueLUTData
>RealWorldValueLUTData	1C	lacks RealWorldValueIntercept
>LUTExplanation	1
>LUTLabel	1
>MeasurementUnitsCodeSequence	1	-	items 1
>>include	Code
ImageLaterality	3	-	R|L|U|B
AnatomicRegionSequence	3	-	items 1
>include	Anatomic Region Item
include	Primary Anatomic Structure

module	Image Pixel	C.7.6.3
SamplesPerPixel	1	-	when GreyPhotometric: 1; when ColorPhotometric: 3
PhotometricInterpretation	1	-	when JpegLossyOneSample: MONOCHROME1|MONOCHROME2; when JpegLossyThreeSamples: YBR_FULL_422|RGB; when VideoSyntax: YBR_PARTIAL_420
Rows	1
Columns	1
BitsAllocated	1
BitsStored	1
HighBit	1
PixelRepresentation	1	-	0|1
PlanarConfiguration	1C	MoreThanOneSample	0|1
PixelAspectRatio	1C	unchecked: the shape of a camera's pixel is not in the object
RedPaletteColorLookupTableDescriptor	1C	PhotometricInterpretation=PALETTE COLOR
GreenPaletteColorLookupTableDescriptor	1C	PhotometricInterpretation=PALETTE COLOR
BluePaletteColorLookupTableDescriptor	1C	PhotometricInterpretation=PALETTE COLOR
RedPaletteColorLookupTableData	1C	PhotometricInterpretation=PALETTE COLOR
GreenPaletteColorLookupTableData	1C	PhotometricInterpretation=PALETTE COLOR
BluePaletteColorLookupTableData	1C	PhotometricInterpretation=PALETTE COLOR
PixelData	1C	lacks PixelDataProviderURL
PixelDataProviderURL	1C	PixelsBehindUrl
PixelPaddingRangeLimit	1C	unchecked: whether padding is a range is not in the object
ExtendedOffsetTable	3
ExtendedOffsetTableLengths	1C	has ExtendedOffsetTable

module	Acquisition Context	C.7.6.14
AcquisitionContextSequence	2	-	items 0-n
>include	Content Item
>ContentItemModifierSequence	3	-	items 1-n
>>include	Content Item
AcquisitionContextDescription	3

module	Device	C.7.6.12
DeviceSequence	1	-	items 1-n
>include	Code
>DeviceDiameterUnits	2C	has DeviceDiameter	FR|GA|IN|MM

module	Specimen	C.7.6.22
ContainerIdentifier	1
IssuerOfTheContainerIdentifierSequence	2	-	items 0-1
>include	Hierarchic Designator
ContainerTypeCodeSequence	2	-	items 0-1
>include	Code
SpecimenDescriptionSequence	1	-	items 1-n
>SpecimenIdentifier	1
>IssuerOfTheSpecimenIdentifierSequence	2	-	items 0-1
>>include	Hierarchic Designator
>SpecimenUID	1
>SpecimenPreparationSequence	2	-	items 0-n
>>SpecimenPreparationStepContentItemSequence	1	-	items 1-n
>>>include	Content Item
>SpecimenLocalizationContentItemSequence	1C	unchecked: whether several specimens are in the picture is not in the object	items 1-n
>>include	Content Item

module	ICC Profile	C.11.15
ICCProfile	1
ColorSpace	3

module	Common Instance Reference	C.12.2
ReferencedSeriesSequence	1C	unchecked: which references lie in this study is not known here	items 1-n
>SeriesInstanceUID	1
>ReferencedInstanceSequence	1	-	items 1-n
>>include	SOP Instance Reference
StudiesContainingOtherReferencedInstancesSequence	1C	unchecked: which references lie in other studies is not known here	items 1-n
>StudyInstanceUID	1
>ReferencedSeriesSequence	1	-	items 1-n
>>SeriesInstanceUID	1
>>ReferencedInstanceSequence	1	-	items 1-n
>>>include	SOP Instance Reference

module	SOP Common	C.12.1
SOPClassUID	1
SOPInstanceUID	1
SpecificCharacterSet	1C	may; BeyondDefaultRepertoire
InstanceCreationDate	3
InstanceCreationTime	3
InstanceCreatorUID	3
TimezoneOffsetFromUTC	3
CodingSchemeIdentificationSequence	3	-	items 1-n
>CodingSchemeDesignator	1
>CodingSchemeRegistry	1C	unchecked: which schemes are registered is not in the object
>CodingSchemeUID	1C	unchecked: which schemes have a UID is not in the object
>CodingSchemeExternalID	2C	unchecked: which schemes are registered is not in the object
ContextGroupIdentificationSequence	3	-	items 1-n
>ContextIdentifier	1
>MappingResource	1
>ContextGroupVersion	1
MappingResourceIdentificationSequence	3	-	items 1-n
>MappingResource	1
ContributingEquipmentSequence	3	-	items 1-n
>PurposeOfReferenceCodeSequence	1	-	items 1
>>include	Code
>Manufacturer	1
>OperatorIdentificationSequence	3	-	items 1-n
>>include	Person Identification
>UDISequence	3	-	items 1-n
>>UniqueDeviceIdentifier	1
InstanceNumber	3
MACParametersSequence	3	-	items 1-n
>MACIDNumber	1
>MACCalculationTransferSyntaxUID	1
>MACAlgorithm	1
>DataElementsSigned	1
DigitalSignaturesSequence	3	-	items 1-n
>MACIDNumber	1
>DigitalSignatureUID	1
>DigitalSignatureDateTime	1
>CertificateType	1
>CertificateOfSigner	1
>Signature	1
>CertifiedTimestampType	1C	has CertifiedTimestamp
EncryptedAttributesSequence	1C	unchecked: whether someone may decrypt parts is not in the object	items 1-n
>EncryptedContentTransferSyntaxUID	1
>EncryptedContent	1
OriginalAttributesSequence	3	-	items 1-n
>SourceOfPreviousValues	2
>AttributeModificationDateTime	1
>ModifyingSystem	1
>ReasonForTheAttributeModification	1
>ModifiedAttributesSequence	1	-	items 1
HL7StructuredDocumentReferenceSequence	1C	unchecked: which documents are referenced is not known here	items 1-n
>include	SOP Instance Reference
>HL7InstanceIdentifier	1
LongitudinalTemporalInformationModified	3	-	UNMODIFIED|MODIFIED|REMOVED
QueryRetrieveView	1C	unchecked: whether a C-MOVE converted the object is not in it	CLASSIC|ENHANCED
ConversionSourceAttributesSequence	1C	unchecked: whether the object was converted is not in it	items 1-n
>include	Image SOP Instance Reference
ContentQualification	3	-	PRODUCT|RESEARCH|SERVICE
PrivateDataElementCharacteristicsSequence	3	-	items 1-n
>PrivateGroupReference	1
>PrivateCreatorReference	1
>BlockIdentifyingInformationStatus	1	-	SAFE|UNSAFE|MIXED
>NonidentifyingPrivateElements	1C	BlockIdentifyingInformationStatus=MIXED
InstanceOriginStatus	3	-	LOCAL|IMPORTED
ReferencedDefinedProtocolSequence	1C	unchecked: photographs are no performed protocols	items 1-n
>include	SOP Instance Reference
ReferencedPerformedProtocolSequence	1C	unchecked: whether such an object was made is not in this one	items 1-n
>include	SOP Instance Reference
