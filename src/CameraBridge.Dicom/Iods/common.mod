# Modules of every object, PS3.3 edition 2025e. The form of a row is told in patient.mod.
module	SOP Common	C.12.1
SOPClassUID	1
SOPInstanceUID	1
SpecificCharacterSet	1C	may; BeyondDefaultRepertoire	terms |ISO_IR 100|ISO_IR 101|ISO_IR 109|ISO_IR 110|ISO_IR 144|ISO_IR 127|ISO_IR 126|ISO_IR 138|ISO_IR 148|ISO_IR 13|ISO_IR 166|ISO 2022 IR 6|ISO 2022 IR 100|ISO 2022 IR 101|ISO 2022 IR 109|ISO 2022 IR 110|ISO 2022 IR 144|ISO 2022 IR 127|ISO 2022 IR 126|ISO 2022 IR 138|ISO 2022 IR 148|ISO 2022 IR 13|ISO 2022 IR 166|ISO 2022 IR 87|ISO 2022 IR 159|ISO 2022 IR 149|ISO 2022 IR 58|ISO_IR 192|GB18030|GBK
InstanceCreationDate	3
InstanceCreationTime	3
InstanceCoercionDateTime	3
InstanceCreatorUID	3
RelatedGeneralSOPClassUID	3
OriginalSpecializedSOPClassUID	3
SyntheticData	3
CodingSchemeIdentificationSequence	3	-	items 1-n
>CodingSchemeDesignator	1
>CodingSchemeRegistry	1C	unchecked: which schemes are registered is not in the object
>CodingSchemeUID	1C	unchecked: which schemes have a UID is not in the object
>CodingSchemeExternalID	2C	unchecked: which schemes are registered is not in the object
>CodingSchemeName	3
>CodingSchemeVersion	3
>CodingSchemeResponsibleOrganization	3
>CodingSchemeResourcesSequence	3	-	items 1-n
>>CodingSchemeURLType	1	-	terms DOC|OWL|CSV
>>CodingSchemeURL	1
ContextGroupIdentificationSequence	3	-	items 1-n
>ContextIdentifier	1
>ContextUID	3
>MappingResource	1	-	terms DCMR
>ContextGroupVersion	1
MappingResourceIdentificationSequence	3	-	items 1-n
>MappingResource	1	-	terms DCMR
>MappingResourceUID	3	-	terms 1.2.840.10008.8.1.1
>MappingResourceName	3	-	terms DICOM Content Mapping Resource
TimezoneOffsetFromUTC	3
ContributingEquipmentSequence	3	-	items 1-n
>PurposeOfReferenceCodeSequence	1	-	items 1; cid D7005
>>include	Code
>Manufacturer	1
>InstitutionName	3
>InstitutionAddress	3
>StationName	3
>InstitutionalDepartmentName	3
>InstitutionalDepartmentTypeCodeSequence	3	-	items 1; cid B7030
>>include	Code
>OperatorsName	3
>OperatorIdentificationSequence	3	-	items 1-n
>>include	Person Identification
>ManufacturerModelName	3
>DeviceSerialNumber	3
>SoftwareVersions	3
>DateOfManufacture	3
>DateOfInstallation	3
>DeviceUID	3
>UDISequence	3	-	items 1-n
>>UniqueDeviceIdentifier	1
>>DeviceDescription	3
>SpatialResolution	3
>DateOfLastCalibration	3
>TimeOfLastCalibration	3
>ContributionDateTime	3
>ContributionDescription	3
InstanceNumber	3
SOPInstanceStatus	3
SOPAuthorizationDateTime	3
SOPAuthorizationComment	3
AuthorizationEquipmentCertificationNumber	3
MACParametersSequence	3	-	items 1-n
>MACIDNumber	1
>MACCalculationTransferSyntaxUID	1
>MACAlgorithm	1	-	terms RIPEMD160|MD5|SHA1
>DataElementsSigned	1
DigitalSignaturesSequence	3	-	items 1-n
>MACIDNumber	1
>DigitalSignatureUID	1
>DigitalSignatureDateTime	1
>CertificateType	1	-	terms X509_1993_SIG
>CertificateOfSigner	1
>Signature	1
>CertifiedTimestampType	1C	has CertifiedTimestamp	terms CMS_TSP
>CertifiedTimestamp	3
>DigitalSignaturePurposeCodeSequence	3	-	items 1; cid B7007
>>include	Code
EncryptedAttributesSequence	1C	unchecked: whether someone may decrypt parts is not in the object	items 1-n
>EncryptedContentTransferSyntaxUID	1
>EncryptedContent	1
OriginalAttributesSequence	3	-	items 1-n
>SourceOfPreviousValues	2
>AttributeModificationDateTime	1
>ModifyingSystem	1
>ReasonForTheAttributeModification	1
>ModifiedAttributesSequence	1	-	items 1; open: any attribute of the top level may have been modified
>NonconformingModifiedAttributesSequence	3	-	items 1-n
>>SelectorAttribute	1C	unchecked: whether an item of a sequence is selected is not in the object
>>SelectorValueNumber	1C	unchecked: whether a single value is selected is not in the object
>>SelectorSequencePointer	1C	may; lacks SelectorAttribute
>>SelectorSequencePointerPrivateCreator	1C	unchecked: tags of private attributes are not looked for in the pointer
>>SelectorSequencePointerItems	1C	has SelectorSequencePointer
>>SelectorAttributePrivateCreator	1C	unchecked: tags of private attributes are not looked for in the selector
>>NonconformingDataElementValue	1
HL7StructuredDocumentReferenceSequence	1C	unchecked: which documents are referenced is not known here	items 1-n
>include	SOP Instance Reference
>HL7InstanceIdentifier	1
>RetrieveURI	3
LongitudinalTemporalInformationModified	3	-	UNMODIFIED|MODIFIED|REMOVED
QueryRetrieveView	1C	unchecked: whether a C-MOVE converted the object is not in it	CLASSIC|ENHANCED
ConversionSourceAttributesSequence	1C	unchecked: whether the object was converted is not in it	items 1-n
>include	Image SOP Instance Reference
ContentQualification	3	-	PRODUCT|RESEARCH|SERVICE
PrivateDataElementCharacteristicsSequence	3	-	items 1-n
>PrivateGroupReference	1
>PrivateCreatorReference	1
>PrivateDataElementDefinitionSequence	3	-	items 1-n
>>PrivateDataElement	1
>>PrivateDataElementValueMultiplicity	1
>>PrivateDataElementValueRepresentation	1	-	AE|AS|AT|CS|DA|DS|DT|FL|DF|IS|LO|LT|OB|OD|OF|OL|OW|PN|SH|SL|SQ|SS|ST|TM|UC|UI|UL|UN|UR|US|UT
>>PrivateDataElementNumberOfItems	1C	PrivateDataElementValueRepresentation=SQ
>>PrivateDataElementKeyword	1
>>PrivateDataElementName	1
>>PrivateDataElementDescription	3
>>PrivateDataElementEncoding	3
>>RetrieveURI	3
>BlockIdentifyingInformationStatus	1	-	SAFE|UNSAFE|MIXED
>NonidentifyingPrivateElements	1C	BlockIdentifyingInformationStatus=MIXED
>DeidentificationActionSequence	3	-	items 1-n
>>IdentifyingPrivateElements	1
>>DeidentificationAction	1	-	D|Z|X|U
InstanceOriginStatus	3	-	LOCAL|IMPORTED
BarcodeValue	3
ReferencedDefinedProtocolSequence	1C	elsewhere: photographs are no performed protocols	items 1-n
>include	SOP Instance Reference
>SourceAcquisitionProtocolElementNumber	3
>SourceReconstructionProtocolElementNumber	3
ReferencedPerformedProtocolSequence	1C	unchecked: whether such an object was made is not in this one	items 1-n
>include	SOP Instance Reference
>SourceAcquisitionProtocolElementNumber	3
>SourceReconstructionProtocolElementNumber	3

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

module	Frame Extraction	C.12.3
FrameExtractionSequence	1	-	items 1-n
>MultiFrameSourceSOPInstanceUID	1
>SimpleFrameList	1C	may; lacks CalculatedFrameList,TimeRange
>CalculatedFrameList	1C	may; lacks SimpleFrameList,TimeRange
>TimeRange	1C	may; lacks SimpleFrameList,CalculatedFrameList
